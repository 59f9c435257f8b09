"""Sessions whose keys the database does not know: it holds a keyed hash of each.

Who copies the catalogue copies no way in: the key of a session is in its browser's cookie alone, and the secret that
ties the two lies outside the database (TROD_HOME/secret-key). Named by Django's SESSION_ENGINE.
"""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends import db
from django.core.exceptions import SuspiciousOperation
from django.utils import timezone
from django.utils.crypto import salted_hmac

HASH_CHARS = 40  # as many as the column takes: 160 bits


def stored_key(session_key: str) -> str:
    """What stands in the database for a session's key."""
    return salted_hmac("trod.web.sessions", session_key, algorithm="sha256").hexdigest()[:HASH_CHARS]


class SessionStore(db.SessionStore):
    """Django's sessions in the database, under the hash of their key. Its async half is shut: nothing here is."""

    def _get_session_from_db(self) -> Any:
        try:
            return self.model.objects.get(session_key=stored_key(self.session_key or ""), expire_date__gt=timezone.now())
        except (self.model.DoesNotExist, SuspiciousOperation):
            self._session_key = None
            return None

    def exists(self, session_key: str) -> bool:
        return bool(super().exists(stored_key(session_key)))

    def create_model_instance(self, data: Any) -> Any:
        row = super().create_model_instance(data)
        row.session_key = stored_key(row.session_key)
        return row

    def delete(self, session_key: str | None = None) -> None:
        key = session_key or self.session_key
        if key is not None:
            super().delete(stored_key(key))

    async def _shut(self, *args: Any, **more: Any) -> Any:
        raise NotImplementedError("Trod serves no async page, and Django's own async sessions keep plain keys.")

    _aget_session_from_db = aexists = acreate_model_instance = adelete = _shut
