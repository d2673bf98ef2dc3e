"""WSGI entry point for the web server."""

import os

from django.core.wsgi import get_wsgi_application

from registry.slow_bodies import with_deadline

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")

application = with_deadline(get_wsgi_application())
