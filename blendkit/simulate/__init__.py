"""Stage simulate: pairs of frames with a known truth.

A scene is a stack of layers at known distances.  A camera samples its aperture point by point and
composites all layers for each, so that blur, veil and occlusion come out as in a lens.  A pair is
two such frames with everything that goes wrong between them, and what a perfect merge would give.
"""

from blendkit.simulate.camera import Camera
from blendkit.simulate.demo import demo_scene, demo_spec
from blendkit.simulate.pair import SimulatedPair, Truth, make_pair
from blendkit.simulate.render import render
from blendkit.simulate.scene import Layer, Scene
from blendkit.simulate.scenes import SCENES
from blendkit.simulate.spec import PairSpec

__all__ = [
    "SCENES",
    "Camera",
    "Layer",
    "PairSpec",
    "Scene",
    "SimulatedPair",
    "Truth",
    "demo_scene",
    "demo_spec",
    "make_pair",
    "render",
]
