"""The review of a closeout from the record alone: by whoever makes it, and again by whoever gets its zip. One way for both."""

from __future__ import annotations

from upmast.line.line import Layer
from upmast.record.again import Contents, JudgedAgain, between
from upmast.record.closeout import Closeout
from upmast.record.closeout_matters import Review
from upmast.record.kinds import LineKept
from upmast.record.layers import line_from


def review_of(closeout: Closeout, contents: Contents, site_digest: str, again: JudgedAgain | None = None) -> Review:
    """
    Everything around the tests of a closeout.

    Parameters
    ----------
    contents : gives the bytes of a raw file by its digest, checked.
    site_digest : of the site.yaml that the closeout is made with.
    again : what stands judged again, where that was done already.

    Raises
    ------
    UsageError
        If the built line of the record can't be read any more.
    """
    built = [kept for _, kept in closeout.whole.of(LineKept) if kept.layer == str(Layer.BUILT)]
    line = line_from(contents, built[-1]) if built else None
    return Review(closeout, closeout.proof.line, line, between(closeout, contents, again), site_digest)
