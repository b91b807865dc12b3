import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
application = get_wsgi_application()
# What is loaded by now stays for good. Python's collector, which a list of 300 farms wakes many times, would walk all
# of it each time anew.
gc.collect()
gc.freeze()
