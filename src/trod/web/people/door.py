"""The login page."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.views import LoginView
from django.http import HttpResponse

from trod.web.people import tries


class Door(LoginView):
    """Django's own, which also gives the browser its mark: see `trod.web.people.tries`."""

    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        tries.remember(answer, form.cleaned_data["username"], secure=self.request.is_secure())
        return answer
