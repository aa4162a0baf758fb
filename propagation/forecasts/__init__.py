"""Between the records and the yield model: rows in, numbers through `propagation.yield_model`, answers out.

`gathering` reads what is known of colonies; `learning` keeps what a collection has taught; `outlooks` says of every
mother when she can be cut next, and keeps the answer until records change; `scoring` stores what was said and sets it
against what came. `keeping` turns models and states into JSON and back.

The usual question is ``outlooks.current_outlooks(day)``.
"""
