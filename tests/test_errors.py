"""The exceptions: the tree that the module draws is the tree there is."""

import inspect

from relay.core import errors


def test_tree_in_the_docstring_is_the_tree_of_the_classes() -> None:
    """Every exception is drawn below its parent, with nothing drawn that isn't there."""
    drawn: dict[str, str] = {}
    parents = [""]
    for line in inspect.getdoc(errors).splitlines():  # type: ignore[union-attr]
        name = line.lstrip("│├└─ ").split(" ")[0]
        if not name.endswith(("Error", "Fault")):
            continue
        depth = (len(line) - len(line.lstrip("│├└─ "))) // 4
        parents[depth + 1 :] = [name]
        drawn[name] = parents[depth]
    kinds = [kind for _, kind in inspect.getmembers(errors, inspect.isclass)]
    there = {kind.__name__: kind.__base__.__name__.replace("Exception", "") for kind in kinds}
    assert drawn == there


def test_operators_faults_and_ours_are_apart() -> None:
    """What a person gave us wrong is never taken for a fault of ours, nor the other way round."""
    assert not issubclass(errors.OperatorError, errors.OurFault)
    assert not issubclass(errors.OurFault, errors.OperatorError)
