FROM python:3.11-slim AS build
WORKDIR /src
COPY requirements.lock ./
RUN python -m venv /opt/transit \
    && /opt/transit/bin/pip install --no-cache-dir --require-hashes -r requirements.lock
COPY pyproject.toml README.md LICENSE ./
COPY app app
COPY model model
COPY data data
RUN /opt/transit/bin/pip install --no-cache-dir --no-deps .

FROM python:3.11-slim
RUN useradd --create-home --uid 10001 transit
COPY --from=build /opt/transit /opt/transit
USER 10001
WORKDIR /home/transit
ENV PATH=/opt/transit/bin:$PATH
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=3s --start-period=10s \
    CMD ["python", "-c", "from urllib.request import urlopen; urlopen('http://127.0.0.1:8000/health', timeout=2)"]
# The server answers on the loopback address only: run the container with --network host. Once its ledger has a key
# (python -m app key new), TRANSIT_HOST=0.0.0.0 and a published port do as well.
CMD ["python", "-m", "app", "serve"]
