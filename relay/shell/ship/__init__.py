"""The running relay on board, the promises it keeps, and a rehearsal of it."""
