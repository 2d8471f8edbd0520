"""Where the built page lies: inside an installed Offing, or in the checkout it runs from."""

from pathlib import Path

from relay.core.errors import OperatorError

PACKAGE = Path(__file__).resolve().parents[2]


def desk_folder(package: Path = PACKAGE) -> Path | None:
    """Return the folder that holds the built desk's index.html, of a wheel or a checkout; None where it isn't built."""
    candidates = (package / "desk_site", package.parent / "web" / "dist-desk")
    return next((folder for folder in candidates if (folder / "index.html").is_file()), None)


def site_folder(package: Path = PACKAGE) -> Path:
    """Return the folder that holds the built page's index.html.

    `package` is the folder of the package `relay`. The page an installed wheel carries (`relay/site`) comes before
    the one built in a checkout (`web/dist`). Raises OperatorError when there is neither.
    """
    candidates = (package / "site", package.parent / "web" / "dist")
    for folder in candidates:
        if (folder / "index.html").is_file():
            return folder
    places = " nor ".join(str(folder) for folder in candidates)
    raise OperatorError(f"the page is not built: neither {places} holds index.html; run `make site` in the checkout")
