using System.Text.Json.Nodes;
using System.Text.Json.Serialization.Metadata;
using Microsoft.AspNetCore.OpenApi;
using Microsoft.OpenApi;
using TankWatch.Core.Alerts;
using TankWatch.Core.Commissioning;
using TankWatch.Core.Findings;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Api;

/// <summary>What the OpenAPI document says beyond what the routes say themselves.</summary>
internal static class OpenApiDocument
{
    private const string SchemeName = "apiKey";

    public static void AddOpenApiDocument(this IServiceCollection services) => services.AddOpenApi(o =>
    {
        o.CreateSchemaReferenceId = NameOf;
        o.AddSchemaTransformer((schema, context, _) =>
        {
            SayTime(schema, context.JsonTypeInfo.Type);
            SayNames(schema, context.JsonTypeInfo.Type);
            return Task.CompletedTask;
        });
        o.AddDocumentTransformer((document, _, _) =>
        {
            Describe(document);
            return Task.CompletedTask;
        });
    });

    /// <summary>Types end in <c>Json</c> here to be told from those of the core; outside, that says nothing.</summary>
    private static string? NameOf(JsonTypeInfo type)
    {
        const string page = "PageOf";
        var name = OpenApiOptions.CreateDefaultSchemaReferenceId(type)?.Replace("Json", "", StringComparison.Ordinal);
        return name is not null && name.StartsWith(page, StringComparison.Ordinal) ? name[page.Length..] + "Page" : name;
    }

    /// <summary>A time is read and written by a converter, of which the schema knows nothing.</summary>
    private static void SayTime(OpenApiSchema schema, Type type)
    {
        if ((Nullable.GetUnderlyingType(type) ?? type) == typeof(DateTimeOffset))
        {
            schema.Type = Nullable.GetUnderlyingType(type) is null ? JsonSchemaType.String : JsonSchemaType.String | JsonSchemaType.Null;
            schema.Format = "date-time";
        }
    }

    /// <summary>Lists the stored names, from where they are kept.</summary>
    private static void SayNames(OpenApiSchema schema, Type type)
    {
        if (type == typeof(AlertJson))
        {
            Say("kind", FindingNames.AllKinds);
            Say("priority", Enum.GetValues<Priority>().Select(FindingNames.Of));
            Say("state", Enum.GetValues<AlertState>().Select(AlertNames.Of));
        }
        else if (type == typeof(PredictionJson))
        {
            Say("kind", Enum.GetValues<PredictionKind>().Select(PredictionNames.Of));
            Say("verdict", Enum.GetValues<Outlook>().Select(PredictionNames.Of));
        }

        void Say(string member, IEnumerable<string> names)
        {
            if (schema.Properties?[member] is OpenApiSchema property)
            {
                property.Enum = [.. names.Select(name => JsonValue.Create(name))];
            }
        }
    }

    private static void Describe(Microsoft.OpenApi.OpenApiDocument document)
    {
        document.Info = new()
        {
            Title = "TankWatch",
            Version = "1",
            Description = "Water tanks and pumps of buildings: what is known, what is wrong, and what people do about it. "
                + "Times are RFC 3339 in UTC; an unknown quantity is null, never 0; every error is a problem (RFC 9457).",
            License = new() { Name = "MIT", Identifier = "MIT" },
        };
        document.Tags = new HashSet<OpenApiTag>
        {
            new() { Name = "Sites", Description = "Site files: what is installed." },
            new() { Name = "Figures", Description = "What is and was known of water and pumps." },
            new() { Name = "Alerts", Description = "What is and was wrong, and what people do about it." },
            new() { Name = "Contracts and visits", Description = "What installers promise, whether it was kept, and who goes there." },
            new() { Name = "Webhooks", Description = "Programs elsewhere that are told of events of alerts." },
            new() { Name = "Units", Description = "Field units, and their messages that could not be read." },
        };
        document.Servers = [new() { Url = "/" }];
        document.Components ??= new();
        document.Components.SecuritySchemes = new Dictionary<string, IOpenApiSecurityScheme>
        {
            [SchemeName] = new OpenApiSecurityScheme
            {
                Type = SecuritySchemeType.Http, Scheme = "bearer", Description = "A key made by 'tankwatch key add'. 'demo' needs none.",
            },
        };
        document.Security = [new() { [new OpenApiSecuritySchemeReference(SchemeName, document)] = [] }];
    }
}
