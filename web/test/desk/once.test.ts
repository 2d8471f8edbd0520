import { expect, test } from 'vitest';
import { Once } from '../../desk/src/once';

test('what is asked again while an answer is awaited is asked once; afterwards, or otherwise named, anew', async () => {
  const once = new Once();
  const answers: ((value: string) => void)[] = [];
  const ask = (): Promise<string> => new Promise((done) => answers.push(done));
  const both = [once.run('approve 4', ask), once.run('approve 4', ask), once.run('approve 5', ask)];
  expect(answers.length).toBe(2);
  answers.forEach((answer, at) => answer(`answer ${at}`));
  expect(await Promise.all(both)).toEqual(['answer 0', 'answer 0', 'answer 1']);
  void once.run('approve 4', ask);
  expect(answers.length).toBe(3);
});

test('what failed can be asked again', async () => {
  const once = new Once();
  await expect(once.run('a', () => Promise.reject(new Error('gone')))).rejects.toThrow('gone');
  expect(await once.run('a', () => Promise.resolve(7))).toBe(7);
});
