"""The command line: one module a command; reads arguments, calls the layers below, prints."""
