from my_engine import MyEngine

from leverproof.stand.server import serve

serve(MyEngine())
