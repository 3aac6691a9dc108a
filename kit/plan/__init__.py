"""Before the bake: the day's timetable, its calendar and the sheet for the bench."""
