from django.urls import path

from apps.accounts import views

app_name = "accounts"

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("kept/", views.kept_form, name="kept"),
    path("password/", views.password, name="password"),
    path("password/forgotten/", views.forgotten, name="forgotten"),
    path("password/new/<slug:name>/<slug:token>/", views.choose_password, name="choose_password"),
    # tokens/
    path("tokens/", views.tokens, name="tokens"),
    path("tokens/<int:token_id>/end/", views.end_token, name="end_token"),
    # people/
    path("people/", views.people, name="people"),
    path("people/new/", views.person_new, name="person_new"),
    path("people/<int:person_id>/", views.person, name="person"),
    path("people/<int:person_id>/password/", views.person_password, name="person_password"),
    path("people/<int:person_id>/invite/", views.invite, name="invite"),
    # customers/
    path("customers/", views.customers, name="customers"),
    path("customers/new/", views.customer_new, name="customer_new"),
    path("customers/<int:customer_id>/", views.customer, name="customer"),
    # lab/
    path("lab/", views.lab, name="lab"),
]
