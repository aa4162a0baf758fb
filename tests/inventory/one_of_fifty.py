"""A process of its own that wants some plugs, by HTTP; `test_never_twice.py` starts fifty. Only the standard library.

On the first line of standard input it is told what to do, on the second to begin; it prints every answer as JSON.
"""

import http.client
import json
import random
import sys
import uuid
from html import unescape
from urllib.parse import urlencode

ACTS = ["hold", "save", "now", "market", "trade"]  # a hold, a draft, two ways to sell at once, a trade
TOKEN = "x" * 32  # what a page would carry: the same in the cookie and in the form


def form_of(act, codes, name, day):
    """``(address, fields)`` of the form that a browser would send."""
    told = [("csrfmiddlewaretoken", TOKEN), ("contact_name", name), ("somebody_new", "on")]
    if act == "hold":
        return "/holds/new/", [*told, ("days", "7"), *(("plugs", code) for code in codes)]
    if act == "trade":
        told += [("day", day), *((each, code) for code in codes for each in ("offered", "taken"))]
        told += [("lines-TOTAL_FORMS", 1), ("lines-INITIAL_FORMS", 0), ("lines-0-lineage", "Given For It")]
        return "/trades/new/", [
            *told,
            ("lines-0-count", 1),
            ("lines-0-growth_form", "branching"),
            ("lines-0-size_mm", 20),
        ]
    prices = [(f"price-{code}", "25,00") for code in codes]
    if act == "market":
        told += [("buyer", name), ("method", "cash"), ("submission", str(uuid.uuid4())), *prices]
        return "/market/sell/", [*told, *(("plugs", code) for code in codes)]
    things = [(each, code) for code in codes for each in ("offered", "taken")]
    return "/sales/new/", [*told, ("act", act), ("method", "cash"), *prices, *things]


def main():
    told = json.loads(sys.stdin.readline())
    choose = random.Random(told["seed"])
    number, codes, name = told["number"], told["codes"], told["name"]
    # The last round is for one plug each, so that every plug is wanted.
    wanted = [(choose.choice(ACTS), choose.sample(codes, choose.randint(1, 3))) for _ in range(told["rounds"] - 1)]
    wanted.append((choose.choice(ACTS), [codes[number % len(codes)]]))
    connected = http.client.HTTPConnection(told["host"], timeout=120)
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": f"sessionid={told['session']}; csrftoken={TOKEN}",
    }
    connected.connect()
    print("ready", flush=True)
    sys.stdin.readline()
    answers = []
    for act, plugs in wanted:
        address, fields = form_of(act, plugs, name, told["day"])
        connected.request("POST", address, urlencode(fields), headers)
        answer = connected.getresponse()
        page = unescape(answer.read().decode())
        answers.append([act, plugs, answer.status, answer.getheader("Location", ""), page])
    print(json.dumps(answers))


if __name__ == "__main__":
    main()
