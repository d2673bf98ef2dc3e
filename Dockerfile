# The registry as an image: built in one stage, run in another without build tools, by a
# user that owns nothing but /var/lib/soundline.
#
#   docker build --tag soundline .

FROM python:3.11-slim-bookworm AS build

ENV PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1
RUN python -m venv /opt/soundline/venv
COPY requirements-run.lock /tmp/
RUN /opt/soundline/venv/bin/pip install --require-hashes --requirement /tmp/requirements-run.lock

WORKDIR /opt/soundline/app
# The doctor compares what is installed with the lock.
COPY manage.py gunicorn.conf.py LICENSE requirements-run.lock ./
COPY registry registry
COPY api api
COPY templates templates
COPY fixtures fixtures
COPY deploy deploy
# Static files belong to the image: their names carry their content's hash.
RUN SOUNDLINE_MODE=demo SOUNDLINE_VAR=/tmp/var SOUNDLINE_STATIC_ROOT=/opt/soundline/static \
    /opt/soundline/venv/bin/python manage.py collectstatic --no-input --verbosity 0 \
    && /opt/soundline/venv/bin/python -m compileall -q registry api


FROM python:3.11-slim-bookworm

RUN groupadd --system --gid 10001 soundline \
    && useradd --system --uid 10001 --gid soundline --no-create-home --home-dir /nonexistent soundline \
    && install --directory --owner soundline --group soundline --mode 0700 /var/lib/soundline
COPY --from=build /opt/soundline /opt/soundline

ENV PATH=/opt/soundline/venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    SOUNDLINE_VAR=/var/lib/soundline \
    SOUNDLINE_STATIC_ROOT=/opt/soundline/static \
    SOUNDLINE_BIND=0.0.0.0:8000

WORKDIR /opt/soundline/app
USER soundline
VOLUME /var/lib/soundline
EXPOSE 8000
HEALTHCHECK --interval=15s --timeout=5s --start-period=40s --retries=4 \
    CMD ["python", "deploy/probe.py"]
CMD ["gunicorn"]
