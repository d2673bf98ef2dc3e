"""How the web server runs: two workers for two cores, threads for those who read or send
slowly; a body that comes too slowly is cut off by registry/slow_bodies.py."""

import os

wsgi_app = "registry.wsgi:application"
bind = os.environ.get("SOUNDLINE_BIND", "127.0.0.1:8000")
# registry/settings.py reads the same variable.
workers = int(os.environ.get("SOUNDLINE_WORKERS", "2"))
worker_class = "gthread"
threads = 16
# The longest that a worker may give no sign of life; it ends no request.
timeout = 60
graceful_timeout = 30
# Heartbeats on a slow disk would look like a hanging worker.
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: PTH112, S108
# Nobody steers the server while it runs, so there is no socket to steer it by.
control_socket_disable = True
# Which headers of a proxy are believed is one setting of the registry, not the server's guess.
forwarded_allow_ips = ""
# An access log would hold visitors' addresses and private links; the proxy may keep one.
accesslog = None
errorlog = "-"
loglevel = "warning"
