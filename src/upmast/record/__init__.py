"""The record: raw files by digest, measurements, verdicts, waivers and signatures of many sites, chained so that a change shows."""
