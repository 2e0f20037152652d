"""Forearm and wrist orientation at ball release, from slow-motion clips, tied to the ball's movement.

The folders are the way of a throw, in order: camera, clip, flight, frames, instant, landmarks,
orientation, record, session, stats, suggest, views. `pipeline` calls them in turn.
"""
