"""One function for each thing a technician wants to know: joins the rooms, plain data in and out."""
