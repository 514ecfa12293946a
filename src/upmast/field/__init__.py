"""Field results: read a file, find the test that it belongs to, check the set-up, judge it against the proof, locate faults."""
