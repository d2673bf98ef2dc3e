#!/bin/sh
# What must have happened before the site answers: the tables and the checks. When a new version
# needs other tables, a backup is made first, and a failure leaves everything as it was.
set -eu
python manage.py upgrade --yes
python manage.py check --deploy --database default --fail-level WARNING
