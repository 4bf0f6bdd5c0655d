"""Which cells may be published, and whether what is hidden can be worked out from what is not."""

from mentorstats.disclosure.audit import audit, exposed
from mentorstats.disclosure.bounds import bounds
from mentorstats.disclosure.partners import fewest_partners, partners
from mentorstats.disclosure.published import Published, Share, Sum, from_tables

__all__ = [
    "Published",
    "Share",
    "Sum",
    "audit",
    "bounds",
    "exposed",
    "fewest_partners",
    "from_tables",
    "partners",
]
