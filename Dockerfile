# One image for web, worker and scheduler; docker-compose.yml says which each container is.

# What reads labels in the browser; npm itself is not in the image.
FROM node:22-bookworm-slim AS browser
WORKDIR /app
COPY package.json package-lock.json ./
RUN npm ci --omit=dev --no-audit --no-fund

FROM python:3.12-slim-bookworm

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1

# libzbar0 is the second reader of labels; pg_dump and psql serve backup and restore.
RUN apt-get update \
    && apt-get install -y --no-install-recommends libzbar0 postgresql-client \
    && rm -rf /var/lib/apt/lists/*

RUN useradd --uid 10001 --home-dir /data --no-create-home --shell /usr/sbin/nologin gearroom \
    && install -d -o gearroom -g gearroom -m 0700 /data

WORKDIR /app
# Dependencies change less often than the program: a layer of their own.
COPY pyproject.toml ./
RUN python -c "import tomllib; print(*tomllib.load(open('pyproject.toml', 'rb'))['project']['dependencies'], sep='\n')" > /tmp/requirements.txt \
    && pip install -r /tmp/requirements.txt \
    && rm /tmp/requirements.txt
COPY manage.py ./
COPY gearroom gearroom
COPY kits kits
COPY labels labels
COPY locale locale
COPY --from=browser /app/node_modules node_modules
RUN python -m compileall -q gearroom kits labels

USER gearroom
ENV GEARROOM_DATA_DIR=/data
VOLUME /data
EXPOSE 8000
