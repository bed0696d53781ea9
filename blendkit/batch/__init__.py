"""The whole shoot in one go.

Pairing, in order: `folder` lists frames, `shots` reads what the camera recorded and a small
version, `likeness` compares small versions, `setups` gathers frames of one set-up, `choose` says
who is background, foreground, bridge and clear frame, `pairs_file` writes it down for a person.

Merging, in order: `strangers` sees that nothing of somebody else is replaced, `run` turns pairs and
settings into jobs, `ledger` knows which are done, `memory` says how many fit, `pool` or `cluster`
runs them, `job` does one, `summary_page` tells.
"""
