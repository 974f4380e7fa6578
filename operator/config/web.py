"""How gunicorn runs the web process: `gunicorn --config python:config.web`.

Read before any worker starts, so that a wrong environment stops the process instead of its workers
over and over. The number of workers comes from gunicorn's own WEB_CONCURRENCY.
"""

from . import environment, logs

_environment = environment.read()

wsgi_app = "config.wsgi"
worker_class = "gthread"
threads = 4
timeout = 60
max_requests = 5000
max_requests_jitter = 500
# Nobody steers a running process; the socket would lie in a home folder that need not exist.
control_socket_disable = True
logconfig_dict = logs.configuration(level=_environment.log_level, style=_environment.log_format)
