"""A ship's public site, as the expedition file has it."""

import resource

from relay.shell.plan.expedition import Expedition
from relay.shell.site.gate import DEFAULTS, within
from relay.shell.site.page_words import words_of
from relay.shell.site.public_files import Telling
from relay.shell.site.site import Site
from relay.shell.site.site_files import site_folder


def new_site(expedition: Expedition) -> Site:
    """Return the public site of an expedition, not yet open."""
    names = [policy.audience for policy in expedition.plan.policies]
    words = words_of(expedition.language)
    telling = Telling(expedition.plan.expedition, words, expedition.address, expedition.questions_to)
    invited = [name for name in names if name in expedition.invited_audiences]
    shown = [name for name in names if name in expedition.open_audiences]
    limits = within(DEFAULTS, resource.getrlimit(resource.RLIMIT_NOFILE)[0])
    return Site(telling, shown, site_folder(), invited=invited, limits=limits)
