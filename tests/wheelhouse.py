"""A ship of which only the wheelhouse is there: it notes what it was asked to decide."""

import asyncio
import json
from typing import Any

from relay.core.decision import read_decision
from relay.core.errors import OperatorError


class Wheelhouse:
    """A bridge that notes what it was asked to decide."""

    def __init__(self) -> None:
        self.taken: list[tuple[dict[str, Any], str]] = []
        self.disk, self.full = asyncio.Event(), False
        self.disk.set()
        self.patience_s = 0.0

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Take every decision but a text of "no"."""
        read_decision(data)
        value = json.loads(data)
        if value.get("text") == "no":
            raise OperatorError("not that")
        self.taken.append((value, who))
        return {"taken": value["do"]}

    async def settled(self, within_s: float) -> bool:
        """Wait for the disk, if it is slow; it may be full."""
        self.patience_s = within_s
        await self.disk.wait()
        return not self.full

    def status(self) -> dict[str, Any]:
        """Return something."""
        return {"now_us": 7}
