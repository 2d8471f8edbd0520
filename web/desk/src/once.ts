/** What is asked for a second time while the answer is awaited is the first: asked once, answered to both. Pure. */
export class Once {
  private readonly awaited = new Map<string, Promise<unknown>>();

  run<T>(name: string, ask: () => Promise<T>): Promise<T> {
    const found = this.awaited.get(name) as Promise<T> | undefined;
    if (found) return found;
    const asked = ask().finally(() => this.awaited.delete(name));
    this.awaited.set(name, asked);
    return asked;
  }
}
