/**
 * The drawing in three dimensions on the graphics hardware: flat faces, ink lines, no light and no gloss.
 *
 * Rules: draws only when told to; a shape is uploaded anew only when it changes; `destroy` gives everything back. What
 * of the way is hidden by a step is drawn through it as a pale broken line.
 */

import {
  BufferGeometry,
  Color,
  DoubleSide,
  Float32BufferAttribute,
  LineBasicMaterial,
  LineDashedMaterial,
  LineSegments,
  Matrix4,
  Mesh,
  MeshBasicMaterial,
  OrthographicCamera,
  Scene,
  WebGLRenderer,
  type Material,
} from 'three';
import type { Sight } from './camera';
import type { Shape } from './seabed';

export interface Inks {
  readonly paper: string;
  readonly line: string;
  readonly soft: string;
  readonly hair: string;
  readonly wash: string;
}

export interface Shapes {
  readonly seabed: Shape;
  readonly ways: Shape;
  /** Lines of the squared paper below all of it. */
  readonly grid: readonly number[];
  /** The length of a dash of what is hidden. */
  readonly dash: number;
}

export interface Drawing {
  shapes(shapes: Shapes): void;
  inks(inks: Inks): void;
  render(sight: Sight, depth: number, ratio: number): void;
  destroy(): void;
}

/** Begin to draw on `canvas`; null where the browser has no WebGL 2 to give. */
export function inkOn(canvas: HTMLCanvasElement): Drawing | null {
  const context = canvas.getContext('webgl2', { antialias: true, alpha: false });
  if (!context) return null;
  const renderer = new WebGLRenderer({ canvas, context, antialias: true });
  const scene = new Scene();
  const camera = new OrthographicCamera();
  // Faces lie a little behind the lines that bound them and the way that runs on them.
  const ground = new MeshBasicMaterial({ side: DoubleSide, polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 8 });
  const ribbon = new MeshBasicMaterial({ side: DoubleSide, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -4 });
  const edge = new LineBasicMaterial();
  const way = new LineBasicMaterial();
  const hair = new LineBasicMaterial();
  const hidden = new LineDashedMaterial({ depthTest: false, transparent: true, opacity: 0.55 });
  const materials: readonly Material[] = [ground, ribbon, edge, way, hair, hidden];
  const steps = new Mesh(new BufferGeometry(), ground);
  const strip = new Mesh(new BufferGeometry(), ribbon);
  const lines = (material: Material): LineSegments => new LineSegments(new BufferGeometry(), material);
  const [stepEdges, wayLine, hiddenLine, grid] = [lines(edge), lines(way), lines(hidden), lines(hair)];
  const drawn = [grid, steps, stepEdges, hiddenLine, strip, wayLine];
  drawn.forEach((one, order) => {
    one.frustumCulled = false;
    one.renderOrder = order;
    scene.add(one);
  });
  const put = (one: Mesh | LineSegments, numbers: readonly number[]): void => {
    one.geometry.dispose();
    one.geometry = new BufferGeometry().setAttribute('position', new Float32BufferAttribute(numbers, 3));
  };
  return {
    shapes(shapes): void {
      put(steps, shapes.seabed.faces);
      put(stepEdges, shapes.seabed.edges);
      put(strip, shapes.ways.faces);
      put(wayLine, shapes.ways.edges);
      put(hiddenLine, shapes.ways.edges);
      put(grid, shapes.grid);
      hidden.dashSize = hidden.gapSize = shapes.dash;
      hiddenLine.computeLineDistances();
    },
    inks(inks): void {
      scene.background = new Color(inks.paper);
      ground.color.setStyle(inks.wash);
      ribbon.color.setStyle(inks.line);
      edge.color.setStyle(inks.soft);
      way.color.setStyle(inks.line);
      hair.color.setStyle(inks.hair);
      hidden.color.setStyle(inks.soft);
    },
    render(sight, depth, ratio): void {
      place(camera, sight, depth);
      renderer.setPixelRatio(ratio);
      renderer.setSize(sight.width, sight.height, false);
      renderer.render(scene, camera);
    },
    destroy(): void {
      for (const { geometry } of drawn) geometry.dispose();
      for (const material of materials) material.dispose();
      renderer.dispose();
      renderer.forceContextLoss();
    },
  };
}

/** Put a camera where `sight` is seen from; nothing within `depth` metres of its middle is cut off. */
export function place(camera: OrthographicCamera, { axes, middle, pixelsPerMetre, width, height }: Sight, depth: number): void {
  const { right, up, eye } = axes;
  camera.right = width / 2 / pixelsPerMetre;
  camera.left = -camera.right;
  camera.top = height / 2 / pixelsPerMetre;
  camera.bottom = -camera.top;
  camera.near = 0;
  camera.far = 2 * depth;
  camera.position.set(middle[0] + depth * eye[0], middle[1] + depth * eye[1], middle[2] + depth * eye[2]);
  const columns = [right, up, eye].flatMap((axis) => [...axis, 0]);
  camera.quaternion.setFromRotationMatrix(new Matrix4().fromArray([...columns, 0, 0, 0, 1]));
  camera.updateProjectionMatrix();
  camera.updateMatrixWorld();
}
