"""Before the bake: what to mix, what it will show, the day's timetable and the bench sheet."""
