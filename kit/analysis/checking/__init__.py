"""What could be wrong with a fit; every answer of a trial carries what was found."""
