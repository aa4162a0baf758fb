from labels.models import LabelStock
from propagation.management.keeper_command import KeeperCommand


class Command(KeeperCommand):
    help = "List the label stocks."

    def answer(self, **options):
        return [
            {
                "name": stock.name,
                "kind": stock.kind,
                "page_mm": [stock.page_width_mm, stock.page_height_mm],
                "label_mm": [stock.label_width_mm, stock.label_height_mm],
                "columns": stock.columns,
                "rows": stock.rows,
                "labels_per_page": stock.labels_per_page,
            }
            for stock in LabelStock.objects.all()
        ]

    def lines(self, answer):
        if not answer:
            yield "There are no label stocks here yet."
        for stock in answer:
            yield f"{stock['name']}  ({stock['labels_per_page']} a {'page' if stock['kind'] == 'sheet' else 'step'})"
