/* Names of routes: one that nobody chose follows the service. */

const SHORT = { courier: "courier", post: "post", air_cargo: "air cargo" };

/* What a route of a service is called, other than the names that are taken: "courier", "courier 2". */
export function routeName(service, taken) {
  const short = SHORT[service] ?? service.replaceAll("_", " ");
  let name = short;
  for (let n = 2; taken.includes(name); n += 1) name = `${short} ${n}`;
  return name;
}

/* Whether a name is nobody's own: none, or that of a service, perhaps with a number. */
export function isOfService(name, services) {
  const bare = (name ?? "").trim().toLowerCase().replace(/\s+\d+$/, "");
  return !bare || services.some((row) => [row.name, SHORT[row.service], row.service].includes(bare));
}
