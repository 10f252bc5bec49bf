"""What a single machine at the desk needs so that nobody has to configure anything."""

import secrets
from pathlib import Path


def desk_secret_key(path: Path) -> str:
    """Return this machine's secret key, made on first use and readable by its owner only."""
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
    key = secrets.token_urlsafe(64)
    try:
        with path.open("x", encoding="ascii") as file:
            path.chmod(0o600)
            file.write(key)
    except FileExistsError:  # another process was first
        return path.read_text(encoding="ascii").strip()
    return key
