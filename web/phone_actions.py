"""The paired phones: who they are for the cart's page, and the pairing taken back from one."""

from __future__ import annotations

from logger.pairing import Pairing
from web.answers import done
from web.problems import Problem
from web.routes import Route
from web.schemas import ref
from web.security import token_given


def phones_of(pairing: Pairing) -> list[dict]:
    """Every paired phone, the one that asks marked `this`."""
    mine = pairing.device_of(token_given())
    return [{**phone, "this": phone["device_id"] == mine} for phone in pairing.devices()]


class PhoneActions:
    """Views about paired phones; behind pairing."""

    def __init__(self, pairing: Pairing):
        self._pairing = pairing

    def api_revoke(self, id: str):
        try:
            if not self._pairing.revoke(id):
                raise Problem(404, "No such phone", f"no phone {id!r} is paired; /cart shows those that are")
        except OSError as error:
            why = f"the list cannot be written: {error.strerror}: free some space on the cart's card"
            raise Problem(507, "Not revoked", why) from None
        return done({"done": True}, 200, "/cart#phones")

    def routes(self) -> list[Route]:
        told = {200: ("application/json", ref("Done"))}
        return [Route("POST", "/api/phones/{id}/revoke", self.api_revoke, "Take a pairing back", told, paired=True)]
