"""One function for each thing a technician wants to know; joins the rooms with plain data."""
