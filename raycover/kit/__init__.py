"""What is ordered, set, addressed and wired: units and constructions as sheets, schedules, control lines."""
