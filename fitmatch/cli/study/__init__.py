"""The commands that ask about a job in other ways, or before there is one."""
