"""The registrar's face: the queue, one result at a time, later changes, and the dogs themselves."""
