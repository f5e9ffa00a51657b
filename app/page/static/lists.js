/* The reference lists of the server, fetched once. */

import { get } from "/page/api.js";

const kept = new Map();

function list(path) {
  if (!kept.has(path)) {
    const fetched = get(path).then((answer) => answer.items);
    kept.set(path, fetched);
    fetched.catch(() => kept.delete(path));
  }
  return kept.get(path);
}

export const places = () => list("/v1/places");
export const genera = () => list("/v1/genera");
export const packings = () => list("/v1/packings");
export const services = () => list("/v1/services");
