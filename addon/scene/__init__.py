# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces, sheets and sources as objects of the scene."""
