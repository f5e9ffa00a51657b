"""A client that asks again and again over a kept connection: the standard library alone, so that it starts at once.

``python tests/trust/client.py ADDRESS SECONDS`` posts what stands on standard input to ``/v1/risk`` and prints how long
each answer took, s, as JSON.
"""

import http.client
import json
import sys
import time

PATIENCE_SECONDS = 60.0
HEADERS = {"content-type": "application/json"}


def main(address: str, seconds: float, body: bytes) -> None:
    """Ask until the time is over."""
    host, _, port = address.removeprefix("http://").partition(":")
    connection = http.client.HTTPConnection(host, int(port), timeout=PATIENCE_SECONDS)
    taken = []
    end = time.perf_counter() + seconds
    while (begun := time.perf_counter()) < end:
        connection.request("POST", "/v1/risk", body, HEADERS)
        response = connection.getresponse()
        content = response.read()
        if response.status != http.client.OK:
            raise RuntimeError(content.decode())
        taken.append(time.perf_counter() - begun)
    json.dump(taken, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), sys.stdin.buffer.read())
