"""The page that tells a rate as if every camera were equally good."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from trod import wording
from trod.catalogue.answers import answers, equal_cameras, evidence
from trod.catalogue.answers.equal_cameras import Equal
from trod.catalogue.answers.evidence import Account
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Finding
from trod.web.questions.views import read, the_reserve
from trod.web.reading import without_waiting


def find(given: QueryDict, account: Account) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """The answer of an address, or why there is none."""
    found, _ = _ask(given, account)
    return found.finding, found.trouble


def _ask(given: QueryDict, account: Account) -> tuple[Equal, list[str]]:
    asked, problems = read(given, account)
    try:
        unknown = equal_cameras.unknown_of(given.get("unknown", ""))
    except WrongInput as trouble:
        unknown = "left out"
        problems.append(f"{trouble}. It is left out here.")
    return equal_cameras.ask(account, asked, unknown), problems


@require_GET
@without_waiting
def equal(request: HttpRequest) -> HttpResponse:
    """The rate of one kind with every camera as good as the average one, in all and by site."""
    back = reverse("questions:question", args=["what-comes"])
    reserve = the_reserve()
    if reserve is None:
        return redirect(back)
    found, problems = _ask(request.GET, evidence.gather(reserve))
    query = answers.query(found.filter)
    whole = "&".join(filter(None, (query, "unknown=kept" if found.unknown == "kept" else "")))
    where = f"{reverse('questions:door-pictures', args=['equal-cameras'])}?{whole}"
    finding = found.finding
    return render(
        request,
        "trod/questions_equal_cameras.html",
        {
            "problems": problems,
            "finding": finding,
            "trouble": found.trouble,
            "kept": found.unknown == "kept",
            "unknown": bool(finding and _could_be_kept(finding)),
            "other": "&".join(filter(None, (query, "" if found.unknown == "kept" else "unknown=kept"))),
            "rows": [
                (
                    row["site"],
                    wording.count(row["detections"]),
                    f"{where}{'&' if whole else ''}row={row['key']}" if row["detections"] else "",
                    wording.share(row["chance"]),
                    _number(row["rate"]),
                    _number(row["equal"]),
                    "" if row["low"] is None else wording.between(row["low"], row["high"]),
                )
                for row in (finding.rows if finding else ())
            ],
            "query": whole,
            "back": f"{back}?{query}",
        },
    )


def _number(value: float | None) -> str:
    return "–" if value is None else wording.number(value)


def _could_be_kept(finding: Finding) -> bool:
    """Whether some site is left out, or kept, for want of a chance."""
    return any(one["why"] in equal_cameras.KEEPABLE for one in finding.series["equal_cameras"]["apart"])
