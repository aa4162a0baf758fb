"""Reading what is to be had, and for whom it is kept."""
