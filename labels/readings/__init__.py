"""Reading what was printed, and what is still to print."""
