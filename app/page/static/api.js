/* Calls to the server. A refusal is a Problem, a network that is down a NetworkDown. */

import { inPageWords } from "/page/page_words.js";

const KEY = "transit.key";

export class Problem extends Error {
  /* `errors` is a list of {pointer, message} and, for CSV, {row, column}. */
  constructor(status, body) {
    super(body.detail ?? `The server answered with status ${status}.`);
    this.status = status;
    this.code = body.code ?? "http";
    this.errors = (body.errors ?? []).map((error) => ({ ...error, message: inPageWords(error.message) }));
  }
}

export class NetworkDown extends Error {
  constructor() {
    super("The server cannot be reached. See whether this device is connected, and try again in a while.");
  }
}

export const apiKey = () => localStorage.getItem(KEY) ?? "";

export function setApiKey(key) {
  if (key) localStorage.setItem(KEY, key);
  else localStorage.removeItem(KEY);
}

/* Return {status, headers, data}; data is parsed JSON, else text, else null.

   `body` is sent as JSON unless it is a string or a Blob, which then needs a `type`. An abort by `signal` rejects with the
   browser's AbortError. */
export async function call(method, path, { body, type, headers = {}, signal } = {}) {
  const sent = { Accept: "application/json, application/problem+json, text/csv, */*", ...headers };
  if (body !== undefined) sent["Content-Type"] = type ?? "application/json";
  if (apiKey()) sent.Authorization = `Bearer ${apiKey()}`;
  let response;
  let text;
  try {
    response = await fetch(path, {
      method,
      headers: sent,
      body: body === undefined || typeof body === "string" || body instanceof Blob ? body : JSON.stringify(body),
      signal,
      credentials: "omit",
    });
    text = await response.text();
  } catch (fault) {
    if (fault.name === "AbortError") throw fault;
    throw new NetworkDown();
  }
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  const data = isJson && text ? JSON.parse(text) : text || null;
  if (!response.ok) throw new Problem(response.status, isJson && data ? data : {});
  return { status: response.status, headers: response.headers, data };
}

export const get = async (path, options) => (await call("GET", path, options)).data;
export const post = async (path, body, options) => (await call("POST", path, { body, ...options })).data;
