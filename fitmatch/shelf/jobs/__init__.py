"""Jobs and the shelf: who holds shells, what a saved plan asks for, what a job is offered."""
