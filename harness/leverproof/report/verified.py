"""What checking a bundle or a record gave, in words."""

from __future__ import annotations

from leverproof.record.verified import Verified
from leverproof.report.wording import count, fill, visible

ORIGIN_UNPROVEN = "self-consistent, origin unproven"
_MEANING = (
    "Every sum is right and every finding follows, bit for bit, from the histories that are in it. Nobody has signed "
    "it: a record that was made up as a whole, with new sums, looks the same. Compare the SHA-256 with the one its "
    "maker gives by another way, or run the model again."
)


def render(found: Verified, *, width: int = 110) -> str:
    """The answer as text of at most about ``width`` columns."""
    lines = [visible(found.where)]
    if found.sha256:
        lines.append(f"SHA-256  {found.sha256}")
    for key, value in (("model", found.model), ("date", found.date)):
        if value:
            lines.append(f"{key:<7}  {visible(value)}")
    judged = f"{count(found.findings, 'finding')} of {count(found.cases, 'case')} judged again"
    lines.append(f"{judged}, from {count(found.runs, 'run')}")
    lines += [fill(remark, width, indent="note     ", hang="         ") for remark in found.remarks]
    if found.objections:
        lines.append(f"\nDoes not hold: {count(len(found.objections), 'objection')}")
        lines += [fill(f"{o.kind}: {o.what}", width, indent="  ", hang="      ") for o in found.objections]
    else:
        lines += [f"\nAnswer: {ORIGIN_UNPROVEN}", fill(_MEANING, width, indent="  ", hang="  ")]
    return "\n".join(lines) + "\n"
