"""Fused passes against plain torch, and the row of weights against torch's own optimiser."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import pytest

torch = pytest.importorskip("torch")

from posescore.lab.train.keypoints import fused, loss  # noqa: E402
from posescore.lab.train.keypoints.encoder import _Convolution  # noqa: E402
from posescore.lab.train.keypoints.fused import RELU, RELU6, STRAIGHT  # noqa: E402
from posescore.lab.train.keypoints.learner import Learner, Place  # noqa: E402
from posescore.lab.train.keypoints.network import Filter  # noqa: E402
from tests.lab.train.test_pair_network import made_batch  # noqa: E402


@pytest.fixture
def interpreted() -> Iterator[None]:
    """Kernels run by Triton's interpreter, on this processor."""
    triton = pytest.importorskip("triton", reason="Triton is missing: fused kernels go unchecked")
    if not isinstance(triton.language.sum, triton.runtime.interpreter.InterpretedFunction):
        pytest.skip("Triton was loaded before without its interpreter: run this file alone")
    yield
    fused.use(())


def noise(*shape: int) -> Any:
    random = torch.Generator().manual_seed(sum(shape))
    return 3 * torch.randn(*shape, generator=random)


def everything(run: Any, inputs: list[Any], layer: Any, parts: tuple[str, ...]) -> list[Any]:
    """What a layer says and the gradients of all it read."""
    fused.use(parts)
    layer.zero_grad()
    own = [x.clone().contiguous(memory_format=torch.channels_last).requires_grad_() for x in inputs]
    said = run(layer, *own)
    (said * torch.linspace(-1, 1, said.numel()).reshape(said.shape)).sum().backward()
    return [said.detach(), *(x.grad for x in own), *(p.grad.clone() for p in layer.parameters())]


@pytest.mark.parametrize(
    ("layer", "kind", "adds"),
    [
        (_Convolution(12, 20, 1, 1), RELU6, False),
        (_Convolution(20, 20, 1, 1), STRAIGHT, True),
        (_Convolution(20, 20, 1, 1), RELU, True),
        (_Convolution(3, 20, 3, 2), RELU6, False),
        (_Convolution(20, 20, 3, 1, 20), RELU6, False),
        (_Convolution(20, 20, 3, 2, 20), RELU6, False),
        (torch.nn.Conv2d(20, 20, 5, 1, 2, groups=20), RELU, False),
        (torch.nn.Conv2d(20, 20, 3, 1, 1, groups=20, bias=False), STRAIGHT, False),
    ],
)
@pytest.mark.usefixtures("interpreted")
def test_a_fused_layer_says_and_learns_the_same(layer: Any, kind: int, adds: bool) -> None:
    inputs = [noise(2, layer.in_channels, 8, 8)]
    if adds:
        inputs.append(noise(2, layer.out_channels, 8, 8))

    def run(one: Any, x: Any, rest: Any = None) -> Any:
        return fused.convolved(one, x, kind, rest)

    plain = everything(run, inputs, layer, ())
    for got, expected in zip(everything(run, inputs, layer, fused.PARTS), plain, strict=True):
        assert torch.allclose(got, expected, rtol=1e-4, atol=1e-4 * float(expected.abs().max()))


@pytest.mark.usefixtures("interpreted")
def test_fused_layers_in_a_row_say_and_learn_the_same() -> None:
    block = torch.nn.Sequential(Filter(16), Filter(16))
    inputs = [noise(2, 16, 8, 8)]

    def run(one: Any, x: Any) -> Any:
        return one(x)

    plain = everything(run, inputs, block, ())
    for got, expected in zip(everything(run, inputs, block, fused.PARTS), plain, strict=True):
        assert torch.allclose(got, expected, rtol=1e-4, atol=1e-4 * float(expected.abs().max()))


@pytest.mark.usefixtures("interpreted")
def test_fused_terms_of_a_heat_map_are_those_of_the_loss() -> None:
    batch = made_batch()
    truth = loss.Truth.of(batch)
    results = []
    for parts in ((), fused.PARTS):
        fused.use(parts)
        heat = noise(2, 2, 21, 4096).requires_grad_()
        log_sum, hit, place = loss._heat_terms(heat, truth, batch)
        (log_sum.sum() + (hit * torch.linspace(-2, 1, 168).reshape(2, 2, 2, 21)).sum()).backward()
        results.append([log_sum.detach(), hit.detach(), place, heat.grad])
    for got, expected in zip(results[1], results[0], strict=True):
        assert torch.allclose(got, expected, rtol=1e-4, atol=1e-4)


def test_one_row_of_weights_learns_as_its_parts_would() -> None:
    class Tiny(torch.nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.encoder, self.head = torch.nn.Linear(5, 4), torch.nn.Linear(4, 3)
            self.fixed = torch.nn.Linear(2, 2).requires_grad_(False)

    torch.manual_seed(3)
    module = Tiny()
    other = copy.deepcopy(module)
    learner = Learner(module, Place(0, 1, torch.device("cpu")), 0.5)
    slow, fast = other.encoder, other.head
    optimiser = torch.optim.AdamW(
        [
            {"params": [p], "weight_decay": 0.03 if p.ndim > 1 else 0.0, "share": share}
            for part, share in ((slow, 0.5), (fast, 1.0))
            for p in part.parameters()
        ],
        betas=(0.9, 0.98),
    )
    for step in range(1, 6):
        for part in (module, other):
            part.zero_grad()
            result = part.head(torch.tanh(part.encoder(noise(7, 5))))
            ((result - 1) ** 2).mean().backward()
        learner.gather()
        learner.learn(0.01)
        torch.nn.utils.clip_grad_norm_([p for p in other.parameters() if p.requires_grad], 2.0)
        for group in optimiser.param_groups:
            group["lr"] = 0.01 * group["share"] * step / 300
        optimiser.step()
    for own, expected in zip(module.parameters(), other.parameters(), strict=True):
        assert torch.allclose(own, expected, atol=1e-6)
    kept = learner.average.head.weight
    assert not torch.equal(kept, module.head.weight)
    assert float((kept - module.head.weight).detach().abs().max()) < 1e-3
    assert torch.equal(learner.average.fixed.weight, module.fixed.weight)
