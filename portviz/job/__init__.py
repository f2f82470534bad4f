"""Files in and out: a folder of bench files becomes a job in SI."""
