import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
application = get_wsgi_application()
# What is loaded by now stays for good. Python's collector, which a list of 300 farms wakes many times, would walk all
# of it each time anew.
gc.collect()
gc.freeze()
# Nor does it look for rings among what is young after every 700 new things: a page makes 100,000, and lets them go.
gc.set_threshold(20_000, 20, 20)
