"""Mixtures of normal densities, learned from weighted samples: what colours the water, the rock and a colony have."""

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class Mixture:
    """``shares`` (k,), ``means`` (k, d), ``factors`` (k, d, d): Cholesky factors of the inverse covariances."""

    shares: np.ndarray
    means: np.ndarray
    factors: np.ndarray

    def log_parts(self, samples):
        """The log of each part's share of the density at ``samples`` (n, d), shape (k, n)."""
        dimensions = self.means.shape[1]
        heights = (
            np.log(self.shares)
            + np.log(np.diagonal(self.factors, axis1=1, axis2=2)).sum(axis=1)
            - 0.5 * dimensions * np.log(2 * np.pi)
        )
        parts = np.empty((len(self.shares), len(samples)), np.float32)
        across = np.ascontiguousarray(samples.T)  # three long rows are worked on faster than many short ones
        for part, (mean, factor, height) in enumerate(zip(self.means, self.factors, heights, strict=True)):
            away = factor.T @ across
            away -= (mean @ factor)[:, None]
            away *= away
            parts[part] = height - 0.5 * away.sum(axis=0)
        return parts

    def log_density(self, samples):
        """The log of the density at ``samples`` (n, d), shape (n,)."""
        return _log_sum(self.log_parts(samples))

    def joined(self, means, share, along):
        """The same with further parts, shaped like its own in turn, that have ``share`` of the whole together.

        Each further part reaches by one row of ``along`` farther to both sides.
        """
        again = len(means) // len(self.shares)
        inverse = np.tile(self.factors @ self.factors.transpose(0, 2, 1), (again, 1, 1))
        # Sherman and Morrison: the inverse of a covariance that is longer one way.
        turned = np.einsum("kij,kj->ki", inverse, along)
        longer = inverse - turned[:, :, None] * turned[:, None] / (1 + (turned * along).sum(axis=1))[:, None, None]
        return Mixture(
            np.concatenate([self.shares * (1 - share), np.tile(self.shares, again) * share / again]),
            np.concatenate([self.means, means]),
            np.concatenate([self.factors, np.linalg.cholesky(longer).astype(np.float32)]),
        )

    def of_parts(self, kept):
        """The parts that ``kept`` (k,) marks, alone."""
        return Mixture(self.shares[kept] / self.shares[kept].sum(), self.means[kept], self.factors[kept])


def _log_sum(parts):
    most = parts.max(axis=0)
    return most + np.log(np.exp(parts - most).sum(axis=0))


def learn_mixture(samples, weights, parts, *, start=None, rounds=6, least_variance=1.0):
    """Fit a mixture by expectation and maximisation.

    Parameters
    ----------
    samples : ndarray, shape (n, d), float32
    weights : ndarray, shape (n,)
        Not negative, not all zero.
    parts : int
        How many normal densities; taken from ``start`` if that is given.
    start : Mixture, optional
        Where to begin; else clusters of the samples.
    least_variance : float
        Added to every covariance, so that none collapses.
    """
    weights = np.asarray(weights, np.float32)
    belongs = _clusters(samples, weights, parts) if start is None else _belonging(start, samples)
    for again in range(rounds):
        mixture = _maximised(samples, belongs * weights, least_variance)
        if again < rounds - 1:
            belongs = _belonging(mixture, samples)
    return mixture


def _belonging(mixture, samples):
    parts = mixture.log_parts(samples)
    return np.exp(parts - _log_sum(parts))


def _clusters(samples, weights, parts):
    """Each sample to the nearest of ``parts`` middles, found among few samples drawn by weight; shape (parts, n)."""
    random = np.random.default_rng(1884)
    drawn = random.choice(len(samples), min(len(samples), 1500), p=weights / weights.sum(dtype=float))
    cv2.setRNGSeed(1884)
    parts = min(parts, len(drawn))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.1)
    middles = cv2.kmeans(np.ascontiguousarray(samples[drawn]), parts, None, stop, 1, cv2.KMEANS_PP_CENTERS)[2]
    away = ((samples[None] - middles[:, None]) ** 2).sum(axis=2)
    belongs = np.zeros((parts, len(samples)), np.float32)
    belongs[away.argmin(axis=0), np.arange(len(samples))] = 1
    return belongs


def _maximised(samples, belongs, least_variance):
    dimensions = samples.shape[1]
    sums = belongs.sum(axis=1) + 1e-3
    means = (belongs @ samples) / sums[:, None]
    factors = np.empty((len(sums), dimensions, dimensions), np.float32)
    across = np.ascontiguousarray(samples.T)
    for part, (mean, own, total) in enumerate(zip(means, belongs, sums, strict=True)):
        away = across - mean[:, None]
        covariance = (away * own) @ away.T / total + least_variance * np.eye(dimensions, dtype=np.float32)
        factors[part] = np.linalg.cholesky(np.linalg.inv(covariance))
    return Mixture((sums / sums.sum()).astype(np.float32), means.astype(np.float32), factors)
