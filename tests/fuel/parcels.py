"""The witness: a tank as an explicit list of parcels, in 60-digit decimals.

Every litre is followed from the fill that brought it; nothing is shared with the kernel.
A parcel below 1e-25 litres is dropped, far below any tolerance used.
"""

from decimal import Decimal, getcontext

getcontext().prec = 60
Parcel = tuple[Decimal, Decimal, int]  # litres, octane, birth in microseconds
_DUST = Decimal("1e-25")


class ParcelTank:
    def __init__(self, capacity_l: float) -> None:
        self.capacity_l = Decimal(capacity_l)
        self.parcels: list[Parcel] = []

    @property
    def litres(self) -> Decimal:
        return sum((litres for litres, _, _ in self.parcels), Decimal(0))

    def draw(self, volume_l: float) -> list[Parcel]:
        """Take litres of the mix, as many as there are; gives the parcels taken."""
        held = self.litres
        taken = min(Decimal(volume_l), held)
        if held == 0:
            return []
        share = taken / held
        drawn = [(litres * share, octane, born) for litres, octane, born in self.parcels]
        left = [(litres * (1 - share), octane, born) for litres, octane, born in self.parcels]
        self.parcels = [parcel for parcel in left if parcel[0] > _DUST]
        return drawn

    def pour(self, volume_l: float, mix: list[Parcel]) -> None:
        """Pour in litres of a mix given by parcels in any amount, as many as fit."""
        moved = min(Decimal(volume_l), self.capacity_l - self.litres)
        total = sum((litres for litres, _, _ in mix), Decimal(0))
        if moved > 0 and total > 0:
            self.parcels += [(litres * moved / total, octane, born) for litres, octane, born in mix]

    def octane(self) -> float:
        return float(sum(litres * octane for litres, octane, _ in self.parcels) / self.litres)

    def mean_birth_us(self) -> Decimal:
        return sum(litres * born for litres, _, born in self.parcels) / self.litres

    def share_older(self, now_us: int, age_us: int) -> float:
        old = sum(
            (litres for litres, _, born in self.parcels if born < now_us - age_us), Decimal(0)
        )
        return float(old / self.litres)
