"""A shore's relay as its file has it: site, logs, and what runs beside them, put together."""

from relay.shell.page_words import words_of
from relay.shell.public_files import Telling
from relay.shell.shore import Shore
from relay.shell.shore_file import ShoreFile
from relay.shell.site import Site
from relay.shell.site_files import site_folder


def new_shore(file: ShoreFile) -> Shore:
    """Return a shore that isn't started yet."""
    telling = Telling(file.expedition, words_of(file.language), file.address, file.questions_to)
    return Shore(file, Site(telling, file.open, site_folder()))
