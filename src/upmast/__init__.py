"""
upmast: the antenna line of a cell site, from a radio plan to a proven, buildable and judged line.

The flow in ten lines (each import is made where it is used, so that importing upmast does no work):

    from pathlib import Path
    from upmast.catalogue.catalogue import standard                  # what exists
    from upmast.site.load import load
    from upmast.plan.plan import plan
    from upmast.proof.prove import prove
    site = load(Path("demo/site/site.yaml"), standard())             # what is asked
    line = plan(site, standard()).best.line                          # what is to be built; best is None if nothing passes
    proof = prove(site, line)                                        # value, limit, margin, verdict of everything
    print(proof.verdict(), proof.worst.key, proof.worst.margin)      # the finding that deserves the first look
    print(proof.working(proof.worst))                                # how its number was made

Documents: `upmast.documents.pack.write_pack`. Sweeps: `upmast.field.judge.judge_sweep`. Physics alone, on arrays: `upmast.power`,
`fibre`, `rf`, `pim`, `support`, `earth`, `weather`. The order in which folders may import each other is in `docs/flow.md`.
"""

__version__ = "0.1.0"
