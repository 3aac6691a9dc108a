"""A bake day: hands and griddle by the minute, what does not fit, its calendar."""
