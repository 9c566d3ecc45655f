"""The house as gunicorn serves it, with the bare page of bare.py beside it."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")

from django.conf import settings
from django.core.wsgi import get_wsgi_application

settings.ROOT_URLCONF = "tests.bench.bare"
application = get_wsgi_application()
