"""A server in a thread of the tests' own process, ended so that no thread meets a closed socket."""

import threading


def serving(server):
    """Return the thread in which a waitress server runs."""
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    return thread


def end(server, thread):
    """End a server: first the threads that answer, then, in its own thread, its loop."""
    server.task_dispatcher.shutdown()
    server.trigger.pull_trigger(server.close)
    thread.join(timeout=5)
