# Two stages: build a virtual environment, then copy it into a slim image that runs as a user of its own.
FROM python:3.11-slim-trixie AS build
WORKDIR /src
COPY pyproject.toml README.md LICENSE ./
COPY .ci/constraints.txt .ci/constraints.txt
COPY api api
COPY migrations migrations
RUN python -m venv /venv && /venv/bin/pip install --no-cache-dir -c .ci/constraints.txt '.[sqlite]'

FROM python:3.11-slim-trixie
# pg_dump and pg_restore 17, for backups of a PostgreSQL server that is no newer than they are.
RUN apt-get update && apt-get install -y --no-install-recommends postgresql-client && rm -rf /var/lib/apt/lists/*
RUN useradd --system --uid 10001 --home-dir /data --create-home baizebook
COPY --from=build /venv /venv
USER baizebook
WORKDIR /data
RUN mkdir /data/backups
VOLUME /data
ENV PATH=/venv/bin:$PATH BAIZEBOOK_DATABASE_URL=sqlite:////data/baizebook.db
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=3s --start-period=20s \
    CMD ["python", "-c", "import urllib.request as u; u.urlopen('http://127.0.0.1:8000/readyz', timeout=2)"]
CMD ["baizebook", "serve", "--host", "0.0.0.0"]
