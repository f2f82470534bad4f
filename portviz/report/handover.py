"""What `check` tells of the shop and the customer that a job names for its reports."""

from __future__ import annotations

from dataclasses import asdict

from portviz.job.model import Job

#: Where each word belongs, as in job.toml.
_SECTIONS = {"shop": ("shop", "address", "contact", "logo"), "customer": ("customer", "head", "order")}


def handover_section(job: Job) -> dict[str, str | None]:
    """Return what job.toml states for the head of a report; null where it is not stated."""
    return {key: text or None for key, text in asdict(job.handover).items()}


def handover_lines(job: Job) -> list[tuple[str, str]]:
    r"""Return each section of job.toml that states something, and its words on one line.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from portviz.job.demo import demo_folder
    >>> from portviz.job.model import Handover
    >>> from portviz.job.read import read_job
    >>> job = replace(read_job(demo_folder()), handover=Handover(shop="Valve & Guide", address="Lane 1\nVillage"))
    >>> handover_lines(job)
    [('shop', 'Valve & Guide, Lane 1, Village')]
    """
    stated = handover_section(job)
    lines = []
    for section, keys in _SECTIONS.items():
        words = [f"{key} {text}" if key in ("logo", "head", "order") else text for key in keys if (text := stated[key])]
        if words:
            lines.append((section, ", ".join(" ".join(line.split()) for each in words for line in each.splitlines())))
    return lines
