"""Running a command as a real site would: production mode, all that it requires, nothing more."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def environment(folder: Path) -> dict[str, str]:
    """Return the smallest production environment, writing below `folder`."""
    return {
        "PATH": os.environ["PATH"],
        "SOUNDLINE_VAR": str(folder),
        "SOUNDLINE_SECRET_KEY": "k3y-" + "abcdefghij0123456789" * 4,
        "SOUNDLINE_LOG_KEY": "A" * 43 + "=",
        "SOUNDLINE_ISSUER_KEY": "B" * 43 + "=",
        "SOUNDLINE_LOG_OFFICERS": "one@club.example,two@club.example",
        "SOUNDLINE_CLUB_NAME": "Fellside Dog Club",
        "SOUNDLINE_SITE_URL": "https://registry.example",
        "SOUNDLINE_CONTACT_EMAIL": "office@registry.example",
        "SOUNDLINE_HOSTS": "registry.example",
        "SOUNDLINE_SMTP_HOST": "mail.example",
        "SOUNDLINE_MAIL_FROM": "registry@registry.example",
    }


def manage(
    variables: dict[str, str], *arguments: str, code: str | None = None
) -> subprocess.CompletedProcess[str]:
    """Run `manage.py` with exactly these variables, or `code` in its place."""
    command = [sys.executable, "-W", "error", "-c", code] if code else [sys.executable, "manage.py"]
    return subprocess.run(
        [*command, *arguments], cwd=ROOT, env=variables, capture_output=True, text=True, check=False
    )
