"""The two places that know every room: the desk for commands, the daemon for the service.

Here rooms are joined; nothing is decided here.
"""
