"""What goes wrong."""

import os
import signal
from typing import Any

from django.db import migrations


def go_wrong(apps: Any, schema_editor: Any) -> None:
    """As the variable PLANTED says."""
    fault = os.environ["PLANTED"]
    if fault == "kill":
        os.kill(os.getpid(), signal.SIGKILL)
    if fault == "fail":
        raise RuntimeError("the planted change cannot be made")
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("UPDATE registry_reading SET step = step + 1")


class Migration(migrations.Migration):
    dependencies = (("planted", "0001_changes"),)

    operations = (migrations.RunPython(go_wrong),)
