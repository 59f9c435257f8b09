"""The login page."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse

from trod.web.shared import tries


class Door(LoginView):
    """Django's own, which also gives the browser its mark: see `trod.web.shared.tries`."""

    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        tries.remember(answer, form.cleaned_data["username"], secure=self.request.is_secure())
        return answer


class Leave(LogoutView):
    """Django's own, which also forgets the pass phrase that was said in this session."""

    def post(self, request: HttpRequest, *args: Any, **more: Any) -> HttpResponse:
        from trod.web.shared import seal

        seal.cover(request)
        return super().post(request, *args, **more)
