"""Which passages the air has: profiles of wall and valve, areas, and surfaces. numpy alone."""
