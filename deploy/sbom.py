"""Write what a release is made of: a CycloneDX 1.6 list of every package that runs, from the lock.

It goes to standard output and needs nothing but Python: `make sbom`. The same lock and version give
the same bytes, so that two people can compare theirs.
"""

import json
import re
import sys
import tomllib
import uuid
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
_PIN = re.compile(r"^([a-z0-9][\w.-]*)==([^\s;\\]+)(?:\s*;\s*([^\\\n]+))?", re.MULTILINE)


def packages(lock: str) -> list[dict[str, object]]:
    """Each pinned package as a component; one bound to some systems says to which."""
    found = []
    for name, version, marker in sorted(_PIN.findall(lock)):
        address = f"pkg:pypi/{name}@{version}"
        component: dict[str, object] = {
            "type": "library",
            "bom-ref": address,
            "name": name,
            "version": version,
            "purl": address,
        }
        if marker:
            component["properties"] = [{"name": "python:marker", "value": marker.strip()}]
        found.append(component)
    return found


def bill(lock: str, *, name: str, version: str, licence: str) -> dict[str, object]:
    """The whole list; its serial number follows from what is in it."""
    components = packages(lock)
    made_of = json.dumps([name, version, components], sort_keys=True)
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, made_of)}",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": f"{name}@{version}",
                "name": name,
                "version": version,
                "licenses": [{"license": {"id": licence}}],
            }
        },
        "components": components,
        "dependencies": [
            {"ref": f"{name}@{version}", "dependsOn": [each["bom-ref"] for each in components]}
        ],
    }


def main() -> None:
    """Print the list of this checkout."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lock = (ROOT / "requirements-run.lock").read_text(encoding="utf-8")
    made = bill(lock, name=project["name"], version=project["version"], licence=project["license"])
    json.dump(made, sys.stdout, indent=2)
    sys.stdout.write("\n")


if __name__ == "__main__":
    main()
