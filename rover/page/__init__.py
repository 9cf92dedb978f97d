"""The operator page: what a person watches while the robot is at work, and by what they have a say in it.

A process of its own serves it (`server.py`). The runtime tells that one what there is to be seen (`run_page.py`)
through a pair of sockets (`channel.py`), and never waits for it.
"""
