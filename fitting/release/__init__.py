"""How the heat came: its course, when it was over, and what the sensor hides of it."""
