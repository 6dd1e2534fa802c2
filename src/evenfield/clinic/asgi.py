"""The application that uvicorn serves."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import connections

from evenfield.clinic.answering import Threads

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenfield.clinic.settings")
_answering = get_wsgi_application()
# The threads that answer last as long as the server, and so do their connections; a broken one is made anew.
connections.settings["default"] |= {"CONN_MAX_AGE": None, "CONN_HEALTH_CHECKS": True}
application = Threads(_answering, settings.FILE_UPLOAD_MAX_MEMORY_SIZE)
