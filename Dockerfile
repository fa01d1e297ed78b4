# One image for the web processes, the queue worker and the administration commands.
FROM python:3.12-slim

ENV PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1 \
    DJANGO_SETTINGS_MODULE=registry.config.settings \
    VACUARY_HOME=/var/lib/vacuary \
    NUMBA_CACHE_DIR=/var/cache/vacuary \
    NUMBA_CPU_NAME=generic

RUN useradd --system --create-home --uid 10001 vacuary \
 && install --directory --owner=vacuary --mode=0700 /var/lib/vacuary \
 && install --directory --owner=vacuary --mode=0755 /var/cache/vacuary

WORKDIR /srv/vacuary
COPY requirements.lock ./
RUN pip install --no-cache-dir --disable-pip-version-check --no-deps --require-hashes -r requirements.lock

COPY pyproject.toml README.md LICENSE manage.py ./
COPY registry registry
COPY api api
COPY client_cli client_cli
RUN pip install --no-cache-dir --disable-pip-version-check --no-deps --no-build-isolation .

USER vacuary
# Machine code of the measurement's kernels, for any processor of this kind, so that no server has to make it.
RUN python -m registry.waveform.warm
VOLUME /var/lib/vacuary
EXPOSE 8000
CMD ["gunicorn", "--config", "python:registry.config.web", "--bind", "0.0.0.0:8000", "--workers", "2"]
