"""Order slips drawn by a hand that had not seen ours: HTML pads, rendered by a browser.

``tune`` is for development; ``blind`` is for measuring only, and nobody looks at its failures. ``sealed``, by another
hand again, is opened once, at the end: its figure is the one that nothing was built on. ``vault``, ``cellar`` and
``attic``, by other hands yet, are opened once each as well, at the end of a session. Of ``attic`` one pad was looked
at after the first measurement, ``rushlington``: a right slip of it had been called wrong.
"""
