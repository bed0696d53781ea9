"""One thread a process where the tests run in several: else they wait for each other's threads."""

import os

import cv2

_ONE = ("OPENCV_FOR_THREADS_NUM", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")

if "PYTEST_XDIST_WORKER" in os.environ:
    os.environ.update(dict.fromkeys(_ONE, "1"))  # for the programs that tests start
    cv2.setNumThreads(1)
