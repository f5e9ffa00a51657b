# The image below by digest, so that a build next year starts from the same bytes. With the tag raise all three lines:
# docker buildx imagetools inspect python:TAG prints the digest.
FROM python:3.11.14-slim-bookworm@sha256:65a93d69fa75478d554f4ad27c85c1e69fa184956261b4301ebaf6dbb0a3543d AS build
WORKDIR /src
COPY requirements.lock ./
RUN python -m venv /opt/transit \
    && /opt/transit/bin/pip install --no-cache-dir --require-hashes -r requirements.lock
COPY pyproject.toml README.md LICENSE ./
COPY app app
COPY model model
COPY data data
RUN /opt/transit/bin/pip install --no-cache-dir --no-deps .

FROM python:3.11.14-slim-bookworm@sha256:65a93d69fa75478d554f4ad27c85c1e69fa184956261b4301ebaf6dbb0a3543d
RUN useradd --create-home --uid 10001 transit \
    && install --directory --owner=transit --group=transit --mode=0700 /var/lib/transit
COPY --from=build /opt/transit /opt/transit
USER 10001:10001
# Outside the ledger, in which others may write what Python would then run.
WORKDIR /home/transit
ENV PATH=/opt/transit/bin:$PATH \
    PYTHONDONTWRITEBYTECODE=1 \
    TRANSIT_DATABASE_URL=sqlite:////var/lib/transit/transit.db
# All that is ever written: the ledger, and what SQLite and the fit put into /tmp meanwhile. So the rest can be read-only:
# docker run --read-only --tmpfs /tmp --volume transit-ledger:/var/lib/transit --network host transit-survival
VOLUME /var/lib/transit
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=5s --start-period=15s --retries=3 \
    CMD ["python", "-c", "import os; from urllib.request import urlopen; urlopen('http://127.0.0.1:' + os.environ.get('TRANSIT_PORT', '8000') + '/ready', timeout=4)"]
# The server answers on the loopback address only, hence --network host. Once its ledger has a key (python -m app key
# new), TRANSIT_HOST=0.0.0.0 and a published port do as well; .compose/compose.yaml does it with PostgreSQL and a proxy.
CMD ["python", "-m", "app", "serve"]
