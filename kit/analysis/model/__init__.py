"""The mixed model behind every answer: design, likelihood, REML, Kenward and Roger."""
