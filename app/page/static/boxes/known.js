/* A box from the server, or, without a connection, as it was last seen. */

import { call, NetworkDown } from "/page/api.js";
import { path } from "/page/boxes/words.js";
import { forgetBox, keepBox, knownBoxes } from "/page/kept.js";

const PATIENCE_MS = 6000;

/* Return {shipment, etag, item}: `shipment` is null without a connection, `item` what was seen in the last list.

   `fault` is the NetworkDown then; a box never seen here throws it. */
export async function boxOf(id, signal) {
  try {
    const { data, headers } = await call("GET", path(id), {
      signal: AbortSignal.any([signal, AbortSignal.timeout(PATIENCE_MS)]),
    });
    const etag = headers.get("etag");
    keepBox(data, etag);
    return { shipment: data, etag, item: knownBoxes()[id] ?? null, fault: null };
  } catch (fault) {
    if (fault.status === 404) forgetBox(id);
    const item = knownBoxes()[id];
    if (!(fault instanceof NetworkDown) || !item) throw fault;
    return { shipment: null, etag: item.etag, item, fault };
  }
}
