"""The bill of materials in CycloneDX 1.6 (ECMA-424), made from the lock: `python -m tests.release.bill`.

It holds what a user's installation may hold, with the hashes of the files that the lock allows. The same lock gives the
same bill. May import: the standard library, packaging.
"""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement

__all__ = ["BILL", "LOCK", "Locked", "bill_of", "main", "read_lock"]

ROOT = Path(__file__).parents[2]
LOCK, BILL = ROOT / ".release" / "requirements.lock", ROOT / ".release" / "bill_of_materials.json"
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")


@dataclass(frozen=True)
class Locked:
    """One library of the lock: `where` is the marker of the systems that need it, empty for all."""

    name: str
    version: str
    where: str
    hashes: tuple[str, ...]


def read_lock(text: str) -> tuple[Locked, ...]:
    """The libraries of a lock."""
    plain = re.sub(r"^\s*#.*$", "", text, flags=re.MULTILINE).replace("\\\n", " ")
    found = []
    for line in plain.splitlines():
        if not line.strip():
            continue
        wanted = Requirement(line.split("--hash")[0].strip())
        (pin,) = wanted.specifier
        assert pin.operator == "==", line
        where = str(wanted.marker) if wanted.marker else ""
        found.append(Locked(wanted.name, pin.version, where, tuple(_HASH.findall(line))))
    return tuple(found)


def bill_of(lock: str, project: str) -> str:
    """The bill as JSON, from the texts of the lock and of pyproject.toml."""
    own = tomllib.loads(project)["project"]
    document = {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": f"pkg:pypi/{own['name']}@{own['version']}",
                "name": own["name"],
                "version": own["version"],
                "licenses": [{"license": {"id": own["license"]}}],
                "purl": f"pkg:pypi/{own['name']}@{own['version']}",
            }
        },
        "components": [_component(each) for each in read_lock(lock)],
    }
    return json.dumps(document, indent=1) + "\n"


def _component(each: Locked) -> dict[str, object]:
    address = f"pkg:pypi/{each.name.lower().replace('_', '-')}@{each.version}"
    marker = [{"name": "diag:only-where", "value": each.where}] if each.where else []
    files = [
        {"type": "distribution", "url": f"https://pypi.org/project/{each.name}/{each.version}/", "hashes": [
            {"alg": "SHA-256", "content": known} for known in each.hashes]}
    ]  # fmt: skip
    return {
        "type": "library",
        "bom-ref": address,
        "name": each.name,
        "version": each.version,
        "purl": address,
        "externalReferences": files,
        **({"properties": marker} if marker else {}),
    }


def main() -> None:
    """Write the bill."""
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    BILL.write_text(bill_of(LOCK.read_text(encoding="utf-8"), project), encoding="utf-8")


if __name__ == "__main__":
    main()
