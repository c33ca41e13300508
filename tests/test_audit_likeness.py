"""The hash of a picture survives saving again, and tells two photos apart."""

from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from satcheck.audit.likeness import NEAR, difference_hash, near_groups

SAMPLES = Path(__file__).parents[1] / "sample_images"


def hash_of(picture: Image.Image) -> int:
    grey = np.asarray(picture.convert("L"), np.float32)
    return difference_hash(np.asarray(cv2.resize(grey, (9, 8), interpolation=cv2.INTER_AREA)))


def test_a_picture_that_grows_brighter_to_the_right_has_all_bits_set() -> None:
    ramp = np.tile(np.arange(9.0), (8, 1))
    assert difference_hash(ramp) == 2**64 - 1
    assert difference_hash(-ramp) == 0
    ramp[0, 0] = 5  # the first place of the first row is the highest bit
    assert difference_hash(ramp) == 2**63 - 1


def test_a_picture_without_shades_has_no_bit_set() -> None:
    assert difference_hash(np.full((8, 9), 90.0)) == 0


def test_three_of_64_bits_may_differ_and_four_may_not() -> None:
    """Saved again, a photo differs by 1 bit at most; two photos differ by 10 and more."""
    assert near_groups({"a": 0, "b": 0b111}) == (("a", "b"),)
    assert near_groups({"a": 0, "b": 0b1111}) == ()


def test_another_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed"):
        difference_hash(np.zeros((9, 8)))


def test_saving_again_keeps_a_photo_near_and_another_one_far() -> None:
    first, other = (
        ImageOps.exif_transpose(Image.open(SAMPLES / f"basalt_0{n}.jpg")) for n in (1, 3)
    )
    stream = BytesIO()
    first.reduce(2).save(stream, "JPEG", quality=60)
    again = hash_of(Image.open(stream))
    assert (hash_of(first) ^ again).bit_count() <= NEAR
    assert (hash_of(other) ^ again).bit_count() > 2 * NEAR


def test_a_chain_of_near_photos_is_one_group_in_the_order_given() -> None:
    hashes = {"far": 2**40 - 1, "c": 0b11111, "a": 0, "b": 0b11, "lone": 2**64 - 1}
    assert near_groups(hashes, 3) == (("c", "a", "b"),)
    assert near_groups(hashes, 1) == ()
    assert near_groups({}) == ()
