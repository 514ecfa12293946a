"""The plan: candidate lines for a site, judged by the same proof, ranked with their reasons."""
