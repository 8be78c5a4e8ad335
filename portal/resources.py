"""Finds the files that travel with the program: in a checkout beside the packages, in a wheel inside them."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).parent


def templates() -> Path:
    """The folder of Jinja templates. Raises FileNotFoundError where the installation is not whole."""
    for folder in (_HERE / "_templates", _HERE.parent / "templates"):
        if (folder / "messages").is_dir():
            return folder
    raise FileNotFoundError("The templates are missing from this installation. Install Benchwindow again.")


def demo_shop() -> Path:
    """The folder with the demo shop's policy and words."""
    import seed

    return Path(seed.__file__).parent


def catalogues() -> Path:
    """The folder of translations, one `<language>/LC_MESSAGES/messages.po` each."""
    return _HERE / "locale"


def manual() -> Path:
    """The folder of the manual, the changelog and the decision notes."""
    return _HERE / "manual"


def static() -> Path:
    """The folder of style sheets and scripts that the site serves."""
    return _HERE / "static"


def default_policy() -> Path:
    """The policy a new shop starts with, as TOML."""
    return _HERE / "default-policy.toml"
