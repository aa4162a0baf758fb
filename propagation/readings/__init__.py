"""Reading what the records say: questions that take more than a queryset method."""
