"""A class's day: plan, template, marking, key."""
