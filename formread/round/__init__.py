"""What the pile means at the door: order of drops, amounts due, float, cashing up.

Knows slips, not photos.
"""
